"""The one table of texts that would do harm where they come out, were they not made safe for that place.

Each is run through every function that writes a stranger's text: see `test_hostile_text`.
"""

from __future__ import annotations

HOSTILE = {
    # Terminals (ECMA-48; xterm's control sequences).
    "clear the screen": "\x1b[2J\x1b[1;1Hall well",
    "set the title": "\x1b]0;owned\x07",
    "8-bit CSI": "\x9b31mred",
    "8-bit OSC": "\x9d0;owned\x9c",
    "a link in a terminal": "\x1b]8;;https://evil.example\x1b\\click\x1b]8;;\x1b\\",
    "overwrite the line": "bad\rgood",
    "backspaces": "rm\b\bls",
    "a forged line": "cue\ncuelane: all well",
    "bell, NUL and delete": "a\x07\x00\x7fb",
    # Unicode UAX 9 and separators.
    "reversed name": "\u202egnp.evil\u202c",
    "open isolate": "\u2066open \u2067again",
    "separators": "a\u2028b\u2029c\x85d",
    "byte order mark": "\ufefftext",
    "lone surrogate": "\ud800text",
    "noncharacters": "\ufffe\uffff",
    # Spreadsheets (OWASP, CSV Injection: = + - @, tab and carriage return at the start).
    "a formula": '=HYPERLINK("https://evil.example";"x")',
    "a command": "=cmd|' /C calc'!A0",
    "a sum": "+1+1",
    "a difference": "-2+3",
    "an at sign": "@SUM(1)",
    "a formula behind a tab": "\t=1+1",
    "a formula behind a return": "\r=1+1",
    "a formula behind a no-break space": "\u00a0=1+1",
    "a formula of wide signs": "＝1+1",
    "a cell's end": '","=1+1',
    "a row's end": '"\n=1+1,"',
    # HTML.
    "a script": "<script>alert(1)</script>",
    "the end of a script": "</script><script>alert(1)</script>",
    "the end of a title": "</title><img src=x onerror=alert(1)>",
    "an attribute's end": '" onmouseover="alert(1)',
    "an attribute's end, single": "' onmouseover='alert(1)",
    "a comment": "<!-- --><svg onload=alert(1)>",
    "an entity": "&lt;b&gt; &#60;b&#62;",
    # Markdown (CommonMark).
    "a link": "[click](https://evil.example)",
    "a script link": "[click](javascript:alert(1))",
    "a picture": "![x](https://evil.example/x.png)",
    "a reference": "[x]: https://evil.example",
    "an autolink": "<https://evil.example>",
    "a bare link": "https://evil.example www.evil.example a@evil.example",
    "a heading": "# Heading",
    "a list": "- item",
    "a numbered list": "1. item",
    "a quote": "> quote",
    "code": "`code` ~~~ ```",
    "emphasis": "*a* _b_ **c** ~~d~~",
    "a rule": "---",
    "a table": "a | b\n--- | ---",
    "a trailing backslash": "a\\",
    "escaped already": "\\[a\\](b)",
    # Captions (WebVTT, SubRip).
    "an arrow": "00:00:01.000 --> 00:00:02.000",
    "a cue of its own": "a\n\n00:00:00.000 --> 09:00:00.000\nforged",
    "a note": "NOTE a\n\nSTYLE\n::cue{color:red}",
    "a voice tag": "<v Someone>words</v> <c.red>x</c> <00:00:01.000>",
    "a style override": "{\\an8}{\\b1}bold <b>b</b>",
    # Tags and chapters (ffmpeg's metadata form; Vorbis comments; ID3).
    "a chapter of its own": "a\n[CHAPTER]\nTIMEBASE=1/1\nSTART=0\nEND=9\ntitle=forged",
    "a tag of its own": "a\nartist=forged",
    "signs of ffmetadata": "a=b;c#d\\e",
    "a comment of ffmetadata": ";comment\n#comment",
    "NUL in a tag": "first\x00second",
    # Names and markup of other readers.
    "console markup": "[bold red]x[/bold red] [link=https://evil.example]x[/link]",
    "a template": "{{ 7*7 }} {% raw %} ${7*7} %s {0}",
    "JSON": '"}],"x":[{"',
    "very long": "word " * 200 + "end",
    # Honest text that must come through unharmed.
    "Hebrew": "\u05e9\u05dc\u05d5\u05dd, \u05e2\u05d5\u05dc\u05dd",
    "Arabic": "\u0627\u0633\u062a\u0631\u062d \u0627\u0644\u0622\u0646",
    "emoji": "\U0001f9b5 \U0001f468\u200d\U0001f469\u200d\U0001f467",
    "accents": "Élévation naïve, Übung",
}
