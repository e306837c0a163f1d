"""The page; the only package that imports Streamlit."""
