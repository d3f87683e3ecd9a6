"""One module per page, each with a `router` that `mustwright.web.app` registers."""
