"""The page: five parts in reading order (yarn, stripes, blanket, buying, making) beside the picture.

`store` and `workspace` know nothing of Streamlit; everything else here is a thin view of them.
"""
