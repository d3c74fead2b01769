"""The rows of the business and its work as JSON records, one module a noun."""
