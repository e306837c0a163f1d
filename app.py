"""The page of blendplan; start it with `blendplan page` or `streamlit run app.py`."""

from blendplan.page.main import main

main()
