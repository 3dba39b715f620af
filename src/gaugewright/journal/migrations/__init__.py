"""Every schema a job book ever had, and the way from one to the next."""
