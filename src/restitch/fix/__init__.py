"""The passes: each takes a plan and returns a plan with the changes it made."""
