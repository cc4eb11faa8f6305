"""The only readers and writers: text in, arrays and plain facts out.

A reader gives all that is wrong with a file at once, as one `InputError`; a writer
leaves the old file or the new one, never half of one.
"""
