"""What programs ask for: JSON over HTTP, documented in ``/openapi.json``."""
