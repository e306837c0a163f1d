"""The page: the picture, which is the control, beside one of its places; and what its server answers besides.

`routes` and `edits` know nothing of Streamlit; everything else here is a thin view of the records.
"""
