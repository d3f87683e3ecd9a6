"""The finishing steps, each declared in a module of its own: fields, sentence, use, record."""
