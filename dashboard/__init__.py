"""What people see and touch; does no arithmetic of the trade."""
