#!/usr/bin/env python3
"""Makes a C header of report.css and report.js: embed.py CSS JS HEADER.

The page's policy names the script by its SHA-256, so that no other one runs in it."""
import base64
import hashlib
import sys


def literal(text):
    lines = text.split("\n")
    out = []
    for i, line in enumerate(lines):
        end = "\\n" if i + 1 < len(lines) else ""
        line = line.replace("\\", "\\\\").replace('"', '\\"').replace("?", "\\?")
        out.append('    "%s%s"' % (line, end))
    return "\n".join(out)


css, js = (open(name, encoding="utf-8").read() for name in sys.argv[1:3])
digest = base64.b64encode(hashlib.sha256(js.encode()).digest()).decode()
with open(sys.argv[3], "w", encoding="utf-8") as header:
    header.write("/* Made by embed.py; do not edit. */\n")
    header.write("static const char dw_report_css[] =\n%s;\n" % literal(css))
    header.write("static const char dw_report_js[] =\n%s;\n" % literal(js))
    header.write('static const char dw_report_js_sha256[] = "%s";\n' % digest)
