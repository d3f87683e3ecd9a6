"""How it will ferment: one model, thousands of members, and what readings teach."""
