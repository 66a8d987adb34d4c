"""The job folder: its typed answers, its files, its start."""
