"""The hand-over to the customer: the signature, the sheet that stays there, the warranty, what was done in a week."""
