"""The Streamlit dashboard: one file a page, each ask, compute, show."""
