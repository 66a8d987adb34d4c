"""The command line, and what scripts call beside the rooms themselves."""
