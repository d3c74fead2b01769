"""What all commands have alike: `--json` and `--quiet`, what they say, where and in which words, with pages of it."""
