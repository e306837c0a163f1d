"""How much of anything may come from outside: one table, each line with its reason.

What a file may hold is wide, so that every file of old opens; what is planned at once is what keeps any command and
any run of the page under 10 s and 600 MB on two cores (`tests/bench/bench_budgets.py` tries each and all together).
A budget is held before the work begins, in one line.
"""

from __future__ import annotations

# ---- one file
MAX_FILE = 200_000_000  # bytes of any file: no photograph, palette or project comes near it
MAX_PROJECT = 20_000_000  # bytes of a project file: 20,000 yarns are 8 MB
MAX_DEPTH = 24  # groups within groups of a project file: ours have 12
MAX_PALETTE = 2_000_000  # bytes of a palette: 1,000 lines of 2,000 letters
MAX_PALETTE_YARNS = 1_000  # lines of a palette: a shop's colour card
MAX_GROUPS = 300_000  # lists and groups in a project file: 20,000 yarns have 180,000, read in 2 s
MAX_LIST = 2_000  # entries of a list that has no line of its own here

# ---- one photograph, and all of them
MAX_PHOTO = 150_000_000  # bytes: a phone's largest has 25 million, a 48-megapixel PNG 103
MAX_PIXELS = 120_000_000  # holds every phone of 50 and 100 megapixels (assumed; Pillow's own stop is 179 million)
MAX_PIXELS_JPEG = 170_000_000  # decoded at a small scale, it never stands in memory at full size
MAX_PIXELS_WEBP = 25_000_000  # its library unpacks 15 to 18 bytes a pixel (measured): under 500 MB

MAX_UPLOAD = 40_000_000  # bytes of one handed to the page: what the largest phones make, and a browser sends in seconds
MAX_PHOTOS = 20  # held open at once on the maker's own machine: 6 MB each
MAX_PHOTOS_SERVED = 6  # the same where many share one machine
MAX_READINGS = 12  # readings kept of one photograph, so that undo need not read again
MAX_CROP = 60_000  # letters of a small picture of a yarn, base64
MAX_FINDS = 60  # yarns found in photographs, and photographs told of, of one blanket
MAX_PLACES = 60  # stripes along a picture that an order follows, on the page

# ---- what a file may hold, and opens with
MAX_ROWS = 5_000  # rows of a blanket: five times a bed's length in the finest yarn
MAX_ORDER = 1_000  # colours in an order
MAX_YARNS = 20_000  # yarns on a shelf: a yarn shop's
MAX_SHADES = 12  # shades of one yarn: one dyed in stripes
MAX_LOTS = 24  # dye lots of one yarn
MAX_PARTS = 40  # opened skeins of one lot
MAX_EVENTS = 2_000  # purchases, weighings, openings: each far beyond what a maker keeps
MAX_WEIGHED = 1_000  # yarns of one weighing
MAX_WEIGHED_ALL = 20_000  # yarns of all weighings together
MAX_NOTES = 2_000  # notes to rows
MAX_MEASURED = 200  # weighed rows and swatches
MAX_STUDENTS = 200  # names on a class list: no class with sheets to print is larger (assumed)
MAX_SWATCHES = 20  # photographed swatches
MAX_VARIANTS = 12  # designs kept beside: what fits a row of pictures
MAX_REPEATS = 500  # of a ripple
MAX_SLOPE = 60  # stitches
MAX_TIMES = 200  # that an arrangement is worked

# ---- the library file
MAX_EDITS = 2_000  # edits kept of one blanket, the oldest go first: months of work
MAX_HISTORY = 20_000_000  # bytes of them
MAX_PICTURE = 400_000  # bytes of the small picture of a blanket
MAX_SHELF = 2_000  # yarns on the shelf of the library

# ---- orders
MAX_COLOURS = 100  # put in order at once: the search takes 1 s, what the doubt of all shades does to it 5
START_COLOURS = 40  # of a palette that a new blanket's order takes: more make it taller than a bed

# ---- what is planned at once
PLAN_ROWS = 2_000  # rows
PLAN_STRIPES = 450  # stripes
PLAN_YARNS = 80  # yarns in use
PLAN_STITCHES = 2_000_000  # stitches: a bed in the finest yarn has 0.7 million
MAX_SKEINS = 10_000  # skeins of one colour: beyond any shop's stock
MAX_COMBINATIONS = 200_000  # of yarns held together that are tried for a wished colour: 2 s
