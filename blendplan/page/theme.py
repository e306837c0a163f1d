"""The page's own look: warm paper, a neutral grey ground behind every shade, and the picture always in sight."""

from __future__ import annotations

__all__ = ["CSS"]

# The ground behind pictures and patches is a mid grey of no hue (CIELAB L* about 58), light and dark alike:
# a coloured or very bright surround changes how a shade looks (simultaneous contrast).
CSS = """
<style>
:root { --bp-ground: #8c8c8c; --bp-on-ground: #000; }
header[data-testid="stHeader"] { background: transparent; height: 0; min-height: 0; }
[data-testid="stToolbar"] { visibility: hidden; }
.stApp { --bp-rule: color-mix(in srgb, currentColor 26%, transparent); }
[data-testid="stMainBlockContainer"] { max-width: 1360px; padding: 1rem 1.5rem 6rem; }
[data-testid="stMainBlockContainer"] h1 { font-size: 1.75rem; line-height: 1.2; padding: 0; }
[data-testid="stMainBlockContainer"] h2 { font-size: 1.45rem; padding: 0; }
[data-testid="stMainBlockContainer"] h3 { font-size: 1.1rem; padding: .3rem 0 0; }
a.bp-skip { position: absolute; left: -999rem; }
a.bp-skip:focus { left: .5rem; top: .5rem; z-index: 1000; background: #000; color: #fff; padding: .6rem 1rem; }
.bp-wave { display: block; width: 100%; height: 26px; object-fit: cover; object-position: left center; forced-color-adjust: none; }
.stApp h1, .stApp h2, .stApp h3 { font-family: "Source Serif", ui-serif, Georgia, serif; }
.stApp { --bp-paper: light-dark(#f4f1ec, #211f1d); }
.stApp ul.bp-patches, .stApp ul.bp-facts { padding-left: 0; margin-left: 0; }
.stApp ul.bp-patches li, .stApp ul.bp-facts li { margin: 0; padding: 0; }
[data-testid="stCaptionContainer"] { color: inherit; opacity: 1; }
[data-testid="stCaptionContainer"] p { color: inherit; font-size: .93rem; }
.st-key-head { border-bottom: 0; }
.st-key-head h1 { margin: 0; }
.bp-part { display: flex; align-items: baseline; gap: .7rem; border-top: 2px solid currentColor; padding-top: .5rem; margin-top: 1.2rem; }
.bp-part h2 { margin: 0; }
.bp-part .bp-no { font: 600 1rem/1 ui-serif, Georgia, serif; min-width: 1.2rem; }
.bp-part .bp-lead { opacity: .86; font-size: .95rem; }
nav.bp-nav { display: flex; flex-wrap: wrap; gap: .2rem 1rem; font-size: .98rem; }
nav.bp-nav a { color: inherit; padding: .35rem 0; text-underline-offset: .25em; }
.bp-refused { margin: -.5rem 0 .4rem; padding: .35rem .6rem; border-left: 5px solid #b3261e; background: color-mix(in srgb, #b3261e 10%, transparent); font-size: .95rem; }
.bp-told { margin: 0 0 .3rem; padding: .4rem .7rem; border-left: 5px solid currentColor; background: color-mix(in srgb, currentColor 7%, transparent); }
.bp-told b { margin-right: .35rem; }
.bp-patches { display: flex; flex-wrap: wrap; gap: .6rem .9rem; align-items: flex-start; padding: 0; margin: .2rem 0 .6rem; list-style: none; }
.bp-patch { display: inline-flex; flex-direction: column; width: 104px; vertical-align: top; }
.bp-ground { display: flex; background: var(--bp-ground); padding: 8px; gap: 4px; }
.bp-flat { flex: 1; min-width: 40px; height: 52px; display: grid; place-items: center; font-weight: 600; forced-color-adjust: none; }
.bp-crop { width: 40px; height: 52px; object-fit: cover; display: block; }
.bp-name { font-size: .88rem; line-height: 1.25; padding-top: .2rem; overflow-wrap: anywhere; }
.bp-list { margin: .2rem 0 .4rem; padding-left: 1.2rem; }
.bp-table { overflow-x: auto; max-width: 100%; }
.bp-table:focus-visible { outline: 3px solid var(--st-primary-color, #7a3b2e); }
.bp-table table { border-collapse: collapse; width: 100%; font-size: .95rem; font-variant-numeric: tabular-nums; }
.bp-table th, .bp-table td { padding: .38rem .55rem; border-bottom: 1px solid var(--bp-rule); text-align: right; vertical-align: middle; }
.bp-table th:first-child, .bp-table td:first-child { text-align: left; }
.bp-table thead th { border-bottom: 2px solid currentColor; font-weight: 600; }
.bp-table tr.bp-chosen > * { background: color-mix(in srgb, currentColor 9%, transparent); font-weight: 600; }
.bp-table caption { text-align: left; padding-bottom: .3rem; font-size: .9rem; }
.bp-key { display: inline-grid; place-items: center; min-width: 1.9em; height: 1.6em; margin-right: .45em; border: 4px solid var(--bp-ground); font-weight: 600; font-size: .9em; forced-color-adjust: none; vertical-align: middle; }
.bp-facts { display: flex; flex-wrap: wrap; gap: .1rem 1.3rem; margin: .1rem 0 .3rem; padding: 0; list-style: none; font-size: .96rem; }
.bp-facts b { font-variant-numeric: tabular-nums; }
.bp-rows { font-size: 1.05rem; line-height: 1.6; }
.bp-rows ol { padding-left: 2.2rem; }
.bp-next { font-size: 1.2rem; line-height: 1.5; border: 2px solid currentColor; padding: .7rem 1rem; }
.bp-bars { display: grid; gap: 2px; margin: .3rem 0; }
.bp-bar { display: grid; grid-template-columns: minmax(7rem, 14rem) 1fr 3rem; gap: .5rem; align-items: center; font-size: .9rem; }
.bp-bar i { display: block; height: 12px; background: currentColor; }
.st-key-sight img { border: 10px solid var(--bp-ground); background: var(--bp-ground); box-sizing: border-box; max-height: calc(100vh - 12.5rem); object-fit: contain; }
.st-key-sight [data-testid="stImage"] { width: 100%; }
@media (min-width: 901px) {
  [data-testid="stColumn"]:has(.st-key-sight) { position: sticky; top: .6rem; align-self: flex-start; }
}
@media (max-width: 900px) {
  [data-testid="stHorizontalBlock"]:has(> [data-testid="stColumn"] .st-key-sight) { flex-direction: column; }
  [data-testid="stColumn"]:has(.st-key-sight) { position: sticky; top: 0; z-index: 90; width: 100%; min-width: 100%;
    background: var(--bp-paper, Canvas); box-shadow: 0 3px 8px rgb(0 0 0 / .22); padding: .2rem 0; }
  [data-testid="stHorizontalBlock"]:has(> [data-testid="stColumn"] .st-key-sight) > [data-testid="stColumn"] { width: 100%; min-width: 100%; flex: none; }
  .st-key-sight img { max-height: 26vh; border-width: 4px; }
  .st-key-sight { gap: 0; }
  .st-key-sight .bp-facts { font-size: .85rem; margin: .15rem .5rem; gap: 0 .9rem; }
  .st-key-sight-more { display: none; }
  button kbd, [data-testid="stButton"] [class*="shortcut"] { display: none; }
  [data-testid="stMainBlockContainer"] { padding: .6rem .8rem 5rem; }
  .bp-patch { width: 92px; }
}
button:focus-visible, a:focus-visible, input:focus-visible { outline: 3px solid var(--st-primary-color, #7a3b2e) !important; outline-offset: 2px; }
@media (forced-colors: active) {
  .bp-ground, .bp-key, .bp-flat { outline: 1px solid CanvasText; }
  .bp-bar i { background: CanvasText; forced-color-adjust: none; }
}
@media (prefers-reduced-motion: reduce) { * { transition: none !important; animation: none !important; } }
</style>
"""
