"""One file a job: functions from a test folder to a value; the command line and notebooks call the same ones."""
