"""The finishing bench as use cases: typed quantities in, one result out, for any shell."""
