"""What the place asks for: clearances, ladders, hands and lifts, tools."""
