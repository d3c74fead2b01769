"""What pages and prints show of the papers: a job's page, its drill schedule, its cautions, and PDF."""
