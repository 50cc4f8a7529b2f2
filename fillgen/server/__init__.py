"""The local page's server: one page on the loopback interface, its assets, and answers in JSON.

`serve` (`fillgen.server.serving`) binds 127.0.0.1 and runs until it is stopped. A request passes the guard (`guard`), finds
its route (`app`) and is answered by a process of its own (`workers`, `process`), which is killed where it takes too long; the
answers themselves (`answers`, `bookshelf`) come from the same functions as those of the command line. This is the one package
that knows starlette and uvicorn.
"""
