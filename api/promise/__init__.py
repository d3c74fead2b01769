"""Promise at sale: times over the weeks ahead for any job, entered or not, and booking one of them."""
