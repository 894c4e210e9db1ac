"""The stage in the browser: scenes as data for its page, the lessons of the workspace, what can be taken away."""
