"""What holds: loads on the brackets, the screws or anchors that carry them, and the wood behind."""
