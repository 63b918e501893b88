"""What several pages ask alike: a car, the terms of an offer, numbers and spans as they are typed.

Not here: a page, or what is made of an answer.
"""
