"""What does one read and keep? A results folder as one page that needs nothing else."""
