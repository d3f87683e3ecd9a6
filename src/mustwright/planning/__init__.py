"""From a must sheet to a plan, and what the plan will do."""
