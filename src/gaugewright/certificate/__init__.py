"""What is stated about a finished job, and how it looks."""
