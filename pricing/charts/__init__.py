"""Facts to charts: `alt.Chart` out, and captions that say what each one shows.

Not here: arithmetic beyond layout, or anything of Streamlit; a page shows a chart, a report prints it.
"""
