"""The live page: one small server on this laptop, one page for phone and desk, nothing from outside.

`quietheel.page.server.serve_page` is all that the front door calls; `quietheel.page.view` says what is on the screen.
"""
