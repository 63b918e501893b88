"""The blocks of a document and the writers that lay them out: PDF, word processor, pictures.

Not here: what a document says, and in which order.
"""
