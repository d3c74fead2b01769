"""What people see of the weeks ahead: a later week by half days, and capacity at a glance."""
