"""Web: the local page, served on this machine only: drop, paste or record a take, see the lesson, keep the shelf.

In: files, pasted text and recordings from the user's own browser. Out: pages and JSON, and a folder of plain files
(`shelf`). Imports `analysis` and what lies before it. `door` decides who may come in, `app` what may be asked, `shelf`
what is kept; the page itself lies in `static/` as plain modules.
"""
