"""Where work on notes is done: in this process, or spread over worker processes.

Takes a stream of notes and the work to do on each; gives a stream of results in the order of the notes, and
an account of them. What the work is, this package does not know; whoever asks for it does not know where
it is done. A further engine is a class of its own that keeps to `Engine`.
"""

from converter.engines.engine import Account, Done, Engine, Work
from converter.engines.single import SingleProcess

__all__ = ["Account", "Done", "Engine", "SingleProcess", "Work"]
