"""One file a verb: parse, call one function of quietheel.jobs, print, set the exit code."""
