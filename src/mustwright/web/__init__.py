"""The web pages: thin, server-made, whole without scripts."""
