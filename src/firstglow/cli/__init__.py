"""The command line: thin, one function a verb."""
