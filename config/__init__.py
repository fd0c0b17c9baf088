"""Closed, typed settings of a test folder: load them, check them, explain what is wrong with them."""
