"""What all commands have alike: `--json` and `--quiet`, what they say where, one sentence for what is wrong."""
