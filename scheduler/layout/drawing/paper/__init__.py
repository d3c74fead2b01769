"""What any sheet is made of: lines and letters, lengths in words, patterns of materials."""
