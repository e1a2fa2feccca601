"""The edge: requests in, replies and problems out; one module a resource, units only here."""
