"""F6: the desk, a page on this machine to write a job and to try a plan by hand; it calls the use cases of ``api``."""
