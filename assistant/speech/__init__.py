"""The ear, the voice, and sound in and out.

Importing this package loads no recogniser, no sound library and no speech engine: each is
imported when it is first used, so that the rest of the program works without them.
"""
