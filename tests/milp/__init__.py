"""A job as a mixed integer program: its own variables and rows, written from the statements of rules and goals.

Nothing here is taken from the package. A job is read by ``tests.oracle.Facts``, which also gives routes, tubes and what a port
takes; all that a plan decides and all that follows from it are rows of this program, solved by HiGHS.
"""
