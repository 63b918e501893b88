"""The Streamlit dashboard: one file a page, each ask, compute, show, and what all pages stand in.

Not here: a rule, SQL, mathematics or a sentence that another door says too (`pricing/`).
"""
