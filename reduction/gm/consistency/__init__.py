"""Which windows agree with one vessel floating free: the consensus set, and what held or moved the others.

A window that was disturbed is modelled as shifted by an amount of its own. Every set of shifted windows is weighed by
how well the others then lie on the true curve (generalised least squares, full covariance) and by how likely its cause
is: contact takes heel away, a taut line pulls to its own side. `values` what goes in and out, `linear` the model whose
projector serves every set, `restraint` what can hold her, `one_cause` shifts that several windows share, `sets` what
each set is worth, `presumed` the same beside scatter, `rivals` another curve for all, `list_change` a change of her
list, `scatter` one more variance for all, `choose` the answer. Derivation: ``docs/method-gm.md``, section 3.
"""

from reduction.gm.consistency.choose import consensus
from reduction.gm.consistency.linear import ALPHA_CHI2, ALPHA_LARGEST
from reduction.gm.consistency.rivals import PRIOR_BEND, PRIOR_FLARE
from reduction.gm.consistency.values import Consensus, Excluded, Scatter, Windows

__all__ = [
    "ALPHA_CHI2",
    "ALPHA_LARGEST",
    "PRIOR_BEND",
    "PRIOR_FLARE",
    "Consensus",
    "Excluded",
    "Scatter",
    "Windows",
    "consensus",
]
