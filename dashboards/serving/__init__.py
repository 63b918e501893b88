"""The dashboard as a server: who comes in, how much each may hold, what is read before its port opens.

Not here: a page that Streamlit runs; what the API does by itself (`pricing/api/`).
"""
