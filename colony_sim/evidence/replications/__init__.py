"""One module a published experiment."""
