"""The pages, one module a noun; each page answers in JSON too where a program asks for it."""
