#!/usr/bin/env python3
"""report.py: report.html in a real browser. TAP on standard output.

    report.py                     invents a shoot, surveys it and tests its page
    report.py PAGE [FOLDER]       tests that page; screenshots go to FOLDER

DAYWHEEL and DAYWHEEL_INVENT name the two programs. Sources: WCAG 2.2, 1.4.3 (contrast of text, by the
formula of its definition of relative luminance), 1.4.10 (reflow), 2.1.1 (keyboard), 2.5.8 (size of
targets), 4.1.2 (names); HTML by html-tidy."""
import csv
import os
import shutil
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import chrome  # noqa: E402

count = 0


def ok(name, good, said=""):
    global count
    count += 1
    print("%sok %d - %s" % ("" if good else "not ", count, name))
    if not good:
        print("# " + str(said)[:1500].replace("\n", "\n# "))
    sys.stdout.flush()


# A name that would be markup, script and attribute if it were not escaped.
HOSTILE = "x'\"><img src=q onerror=alert(1)><b>&amp;.DNG"


def invent(work):
    """A small shoot from evening to night with a few faults, one card inside another name."""
    shoot = os.path.join(work, "a <b>shoot & more")
    subprocess.run([os.environ["DAYWHEEL_INVENT"], "--scene", "faults", "--size",
                    "180x120", "--seed", "4", "--out", shoot], check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    shutil.rmtree(os.path.join(shoot, "truth"))
    names = sorted(os.path.join(d, f) for d, _, fs in os.walk(shoot) for f in fs)
    where = os.path.join(os.path.dirname(names[5]), HOSTILE.replace("/", ""))
    os.rename(names[5], where)
    run(work, shoot)
    return shoot, os.path.join(work, "made", "report.html")


def run(work, shoot, *more):
    done = subprocess.run([os.environ["DAYWHEEL"], "survey", shoot, "-o", os.path.join(work, "made"),
                           "-q", "--site", "46.4,8.1", *more], capture_output=True, text=True,
                          check=False)
    ok("daywheel runs", done.returncode in (0, 3), done.stderr)


# Contrast of every piece of text against the ground that lies behind it (WCAG 2.2).
CONTRAST = """(() => {
  const lin = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4); };
  const parse = c => { const m = c.match(/[\\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
  const lum = c => 0.2126 * lin(c[0]) + 0.7152 * lin(c[1]) + 0.0722 * lin(c[2]);
  const ground = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor);
    if (c[3] > 0.99) return c; } return [255, 255, 255, 1]; };
  const bad = []; let n = 0;
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('svg') || e.closest('script') || e.closest('noscript')) continue;
    const own = [...e.childNodes].some(t => t.nodeType === 3 && t.textContent.trim());
    if (!own || !e.getClientRects().length) continue;
    const a = lum(parse(getComputedStyle(e).color)), b = lum(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    n++;
    if (ratio < 4.5) bad.push(e.tagName + '.' + e.className + ' ' + ratio.toFixed(2));
  }
  return {n, bad: bad.slice(0, 5)};
})()"""

# Boxes of charts and whether they hold anything to see.
CHARTS = """[...document.querySelectorAll('svg.plot')].map(s => {
  const r = s.getBoundingClientRect();
  const marks = [...s.querySelectorAll('path')].filter(p => p.getBoundingClientRect().width > r.width / 3);
  const text = [...s.querySelectorAll('text')].filter(t => t.getClientRects().length);
  return {id: s.id, w: r.width, h: r.height, marks: marks.length,
          px: Math.min(...text.map(t => parseFloat(getComputedStyle(t).fontSize))), text: text.length};
})"""

OVERLAPS = """[...document.querySelectorAll('svg.plot')].flatMap(s => {
  const t = [...s.querySelectorAll('text.tick[text-anchor]')].map(e => e.getBoundingClientRect())
    .filter(r => r.width > 0).sort((a, b) => a.left - b.left);
  return t.slice(1).filter((r, i) => r.left < t[i].right + 1).map(() => s.id);
})"""


def broken_pictures(browser):
    return browser.evaluate("""(async () => {
      document.querySelectorAll('details').forEach(d => d.open = true);
      const all = [...document.images];
      all.forEach(i => i.loading = 'eager');
      const bad = [];
      for (const i of all) {
        try { await i.decode(); } catch (e) { bad.push(i.alt || '(small)'); }
        if (!i.naturalWidth) bad.push('empty ' + i.alt);
      }
      return {n: all.length, bad: bad.slice(0, 5), foreign: all.filter(i => !i.src.startsWith('data:image/jpeg')).length};
    })()""")


def look(browser, page, width, dark, pictures):
    name = "%d px, %s" % (width, "dark" if dark else "light")
    browser.screen(width, 900, dark)
    browser.open(page)
    wide = browser.evaluate("document.documentElement.scrollWidth")
    ok(name + ": no sideways scrolling", wide <= width, wide)
    charts = browser.evaluate(CHARTS)
    seen = [c for c in charts if 0.7 * width * min(1, 1152 / width) < c["w"] <= width and c["h"] > 80
            and c["marks"] >= 1 and c["text"] >= 4 and c["px"] >= 11]
    ok(name + ": all charts are seen and legible", len(charts) >= 4 and len(seen) == len(charts), charts)
    overlaps = browser.evaluate(OVERLAPS)
    ok(name + ": the hours do not run into each other", not overlaps, overlaps)
    contrast = browser.evaluate(CONTRAST)
    ok(name + ": text has a contrast of 4.5 at least", contrast["n"] > 100 and not contrast["bad"],
       contrast)
    if pictures:
        browser.picture(os.path.join(pictures, "%d-%s.png" % (width, "dark" if dark else "light")))


def quiet(browser, page):
    """No error, no request but for the page itself."""
    browser.screen(1280, 900, False)
    browser.open(page)
    broken = broken_pictures(browser)
    time.sleep(0.3)
    browser.evaluate("1")
    errors = [e for e in browser.events if e.get("method") in ("Runtime.exceptionThrown",) or
              (e.get("method") == "Runtime.consoleAPICalled") or
              (e.get("method") == "Log.entryAdded")]
    ok("no error and nothing in the console", not errors, errors)
    asked = [e["params"]["request"]["url"][:80] for e in browser.events
             if e.get("method") == "Network.requestWillBeSent"]
    asked = [u for u in asked if not u.startswith("data:")]
    ok("nothing is asked for but the page", len(asked) == 1 and asked[0].startswith("file:"), asked)
    ok("every picture loads and lies in the page",
       broken["n"] > 20 and not broken["bad"] and not broken["foreign"], broken)
    ok("no name became markup", browser.evaluate(
        "document.querySelectorAll('[onerror],img:not([src^=\"data:\"])').length") == 0)
    ids = browser.evaluate("(() => {const n = {}; document.querySelectorAll('[id]').forEach(e => "
                           "n[e.id] = (n[e.id] || 0) + 1); return Object.keys(n).filter(k => n[k] > 1)})()")
    ok("no id stands twice", not ids, ids)
    links = browser.evaluate("[...document.querySelectorAll('a[href^=\"#\"]')].map(a => a.hash.slice(1))"
                             ".filter(h => !document.getElementById(h))")
    ok("every link within the page leads somewhere", not links, links)
    labels = browser.evaluate("[...document.querySelectorAll('[aria-labelledby]')].flatMap(e => "
                              "e.getAttribute('aria-labelledby').split(' ')).filter(i => "
                              "!document.getElementById(i) || !document.getElementById(i).textContent.trim())")
    ok("every label that is named is there", not labels, labels)
    heads = browser.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => +h.tagName[1])")
    ok("headings do not skip a level", heads[0] == 1 and
       all(b - a <= 1 for a, b in zip(heads, heads[1:])), heads)
    nodes = browser.call("Accessibility.getFullAXTree")["nodes"]
    named = [(n["role"]["value"], n.get("name", {}).get("value", "")) for n in nodes
             if not n.get("ignored") and n.get("role", {}).get("value") in
             ("checkbox", "button", "link", "img", "image", "graphics-document")]
    nameless = [r for r, name in named if not name.strip()]
    ok("everything to press or to see has a name", len(named) > 40 and not nameless, nameless[:5])
    small = browser.evaluate("[...document.querySelectorAll('button,input,summary')].filter(e => "
                             "{const r = e.getBoundingClientRect(); return r.width && (r.width < 19 || "
                             "r.height < 19)}).length")
    ok("nothing to press is tiny", small == 0, small)


def marks(browser, page, work):
    """Marks shots with the keyboard and the mouse, saves the list; gives its path."""
    folder = os.path.join(work, "saved")
    os.makedirs(folder, exist_ok=True)
    session, browser.session = browser.session, None
    browser.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=folder, eventsEnabled=True)
    browser.session = session
    browser.open(page)
    browser.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    boxes = browser.evaluate("document.querySelectorAll('#marks input').length")
    wanted = browser.evaluate("document.querySelectorAll('#marks input')[5].value")
    browser.evaluate("document.querySelectorAll('#marks input')[4].focus()")
    for key, code in (("Tab", 9), (" ", 32)):
        for kind in ("keyDown", "keyUp"):
            browser.call("Input.dispatchKeyEvent", type=kind, key=key, windowsVirtualKeyCode=code,
                         text=key if key == " " and kind == "keyDown" else "")
    said = browser.evaluate("document.getElementById('count').textContent")
    ok("a mark by keyboard is counted", said == "1 shot marked", said)
    spot = browser.evaluate("(() => {const l = document.querySelectorAll('#marks label')[7]; "
                            "l.scrollIntoView({block: 'center', behavior: 'instant'}); "
                            "const r = l.getBoundingClientRect(); return [r.left + 20, r.top + 40]})()")
    for kind in ("mousePressed", "mouseReleased"):
        browser.call("Input.dispatchMouseEvent", type=kind, x=spot[0], y=spot[1], button="left",
                     clickCount=1)
    said = browser.evaluate("document.getElementById('count').textContent")
    ok("a mark by mouse is counted", said == "2 shots marked", said)
    browser.evaluate("document.getElementById('save').click()")
    path = os.path.join(folder, "drop.txt")
    for _ in range(100):
        if os.path.exists(path) and os.path.getsize(path) > 0:
            break
        time.sleep(0.1)
    ok("the list is saved", os.path.exists(path))
    text = open(path, encoding="utf-8").read() if os.path.exists(path) else ""
    lines = text.splitlines()
    ok("it holds the marked shots", len(lines) == 3 and lines[0].startswith("#") and lines[1] == wanted,
       text)
    ok("every shot can be marked", boxes > 0 and boxes == browser.evaluate(
        "new Set([...document.querySelectorAll('#marks input')].map(b => b.value)).size"), boxes)
    more = browser.evaluate("""(() => {
      const b = [...document.querySelectorAll('button[data-from]')].find(b => b.dataset.to > b.dataset.from)
        || document.querySelector('button[data-from]');
      document.getElementById('clear').click();
      b.click();
      const all = [...document.querySelectorAll('#marks input')];
      return [all.slice(+b.dataset.from, +b.dataset.to + 1).every(x => x.checked),
              all.filter(x => x.checked).length, b.dataset.to - b.dataset.from + 1];
    })()""")
    ok("a whole stretch can be marked", more[0] and more[1] == more[2], more)
    browser.evaluate("document.getElementById('clear').click()")
    ok("all marks can be taken back", browser.evaluate(
        "document.querySelectorAll('#marks input:checked').length") == 0)
    return path, lines[1:]


def without_script(browser, page):
    browser.call("Emulation.setScriptExecutionDisabled", value=True)
    browser.open(page)
    nodes = browser.call("Accessibility.getFullAXTree")["nodes"]
    text = " ".join(n.get("name", {}).get("value", "") for n in nodes if not n.get("ignored"))
    ok("without script it can be read", "What went wrong" in text and "Next time" in text and
       "switched off" in text and "Save the list" not in text, text[:300])
    browser.call("Emulation.setScriptExecutionDisabled", value=False)


def paper(browser, page):
    browser.open(page)
    browser.call("Emulation.setEmulatedMedia", media="print", features=[
        {"name": "prefers-color-scheme", "value": "dark"}])
    ink = browser.evaluate("[getComputedStyle(document.body).backgroundColor, "
                           "getComputedStyle(document.body).color, "
                           "getComputedStyle(document.querySelector('nav')).display]")
    ok("on paper it is black on white, without what is to be pressed",
       ink == ["rgb(255, 255, 255)", "rgb(0, 0, 0)", "none"], ink)
    data = browser.call("Page.printToPDF", printBackground=False, paperWidth=8.27, paperHeight=11.69)
    ok("it prints", len(data["data"]) > 20000, len(data["data"]))


def valid(page):
    # the standard's own parsing rules, as html5lib follows them; it is Debian's, for Debian's Python
    if subprocess.run(["/usr/bin/python3", "-c", "import html5lib"], stderr=subprocess.DEVNULL,
                      check=False).returncode == 0:
        done = subprocess.run(["/usr/bin/python3", "-c", "import html5lib, sys\n"
                               "html5lib.HTMLParser(strict=True).parse(open(sys.argv[1], 'rb'))", page],
                              capture_output=True, text=True, check=False)
        ok("HTML that the standard's parser takes without an error", done.returncode == 0,
           done.stderr[-600:])
    else:
        ok("HTML that the standard's parser takes # SKIP html5lib is not installed", True)
    if not shutil.which("tidy"):
        ok("tidy HTML # SKIP tidy is not installed", True)
        return
    done = subprocess.run(["tidy", "-q", "-e", "--show-warnings", "yes", page], capture_output=True,
                          text=True, errors="replace", check=False)
    # this tidy is older than SVG in HTML and than `loading`
    known = ("<svg> proprietary", "<title> proprietary", 'attribute "loading"')
    said = [s for s in done.stderr.splitlines() if not any(k in s for k in known)]
    ok("tidy HTML", not said, "\n".join(said[:10]))


def main():
    program = chrome.find()
    if not program:
        print("1..0 # SKIP no chromium here")
        return
    work = tempfile.mkdtemp(prefix="dw-report-")
    try:
        page = sys.argv[1] if len(sys.argv) > 1 else None
        pictures = sys.argv[2] if len(sys.argv) > 2 else None
        shoot = None
        if not page:
            shoot, page = invent(work)
        size = os.path.getsize(page)
        ok("the page is below 6 MB", size < 6e6, size)
        valid(page)
        browser = chrome.Chrome(program)
        try:
            quiet(browser, page)
            for width in (390, 1280):
                for dark in (False, True):
                    look(browser, page, width, dark, pictures)
            browser.screen(1280, 900, False)
            path, names = marks(browser, page, work)
            without_script(browser, page)
            paper(browser, page)
        finally:
            browser.close()
        if shoot:
            run(work, shoot, "--drop", "@" + path)
            with open(os.path.join(work, "made", "ledger.csv"), encoding="utf-8", newline="") as f:
                use = {row["file"]: row["use"] for row in csv.DictReader(f)}
            ok("--drop reads the saved list", len(names) == 2 and all(use.get(n) == "no" for n in names),
               (names, [use.get(n) for n in names]))
    finally:
        shutil.rmtree(work, ignore_errors=True)
    print("1..%d" % count)


main()
