"""Pages: self-contained HTML files that open with no network.

`palette` holds colours and patterns, `parts` the pieces of a page, `charts` the pieces of a chart, `clock` the
times; `look.css` and `behaviour.js` are written into every page. One module per kind of page puts them together:
`dive` for one simulated dive, `debrief` for a real one. Both draw their charts from a `course`.
"""
