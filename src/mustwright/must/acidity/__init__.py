"""What pH will it have, where will it go, and what steadies it: charge balance of a must."""
