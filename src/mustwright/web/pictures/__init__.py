"""Pictures: SVG drawn here, coloured by the style sheet, readable in print and without colour."""
