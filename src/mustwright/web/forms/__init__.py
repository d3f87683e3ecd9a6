"""Forms: what was typed on a page, and the text it stands for."""
