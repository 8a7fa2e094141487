"""The one user that the secured broker of the tests knows."""

USER, PASSWORD = "winch-crew", "seven-blocks-of-oak"
