"""What customers are told: drafted, looked over, told or sent."""
