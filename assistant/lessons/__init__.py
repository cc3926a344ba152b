"""Lessons: a trainee looks for the hidden fault of a virtual car, and sees his way reviewed.

The car is that of ``assistant.practice``, which shares no code with the program's own reasoning;
a lesson joins both. Pure: events in, actions out, a seed for every draw.
"""
