"""The record of a check on deck as one page: the verdict, each item, who accepted what, and the hashes."""

from collections.abc import Mapping
from typing import Any

from tumblehome.page import parts
from tumblehome.page.parts import Column, Html, Verdict
from tumblehome.wording import NOTHING

TONES = {"ok": "good", "accepted": "warn", "NO": "bad", "open": "warn"}
COLUMNS = (Column("Item"), Column("How it stands"), Column("Found"), Column("Wanted, or why it was accepted"))
SHOWN_VERBS = 400  # readings on the page; all of them are in the file


def deck_page(account: Mapping[str, Any], digest: str) -> str:
    """One HTML file that opens with no network and prints. `digest` is the SHA-256 of deck.json."""
    title = "%s: %s" % (account["verdict"], account["plan"]["name"])
    body = parts.join((_header(account), _verdict(account), _practice(account), _items(account),
                       _signed(account), _hashes(account, digest), _readings(account),
                       parts.note(*account["cautions"], heading="Take care")))
    footer = parts.element("p", "It says what was read before the splash, and promises nothing about the dive.")
    return parts.frame(title, parts.element("div", body, class_="deck"), footer, with_charts=False)


def _header(account: Mapping[str, Any]) -> Html:
    return parts.element("header", parts.join((
        parts.element("p", "Check on deck", class_="kind"), parts.element("h1", account["plan"]["name"]),
        parts.element("p", "Splash %s · %s %s" % (_minute(account["splash_utc"]), account["tool"], account["version"]),
                      class_="when"))))


def _verdict(account: Mapping[str, Any]) -> Html:
    board, is_go = account["board"], account["verdict"] == "GO"
    accepted = [item for item in account["items"] if item["word"] == "accepted"]
    tone = ("warn" if accepted or account["practice_board"] else "good") if is_go else "bad"
    words = "Everything is as it must be." if is_go else "What stands against it:"
    if is_go and accepted:
        words = "Not all is as it must be. Accepted by %s:" % account["by"]
    alarms = ["%s: %s; accepted because: %s" % (item["part"], item["found"], item["accepted_because"])
              for item in accepted] if is_go else account["reasons"]
    facts = [("Checked", "%s to %s" % (_minute(account["began_utc"]), account["ended_utc"][11:16] + "Z")),
             ("By", account["by"] or NOTHING), ("Lander is", "armed" if account["armed"] else "not armed"),
             ("Controller", "%s, number %s" % (board.get("board"), board.get("id"))),
             ("Firmware", board.get("lander")), ("Plan", account["plan"]["mark"])]
    return parts.verdict_panel(Verdict(tone, account["verdict"], words), facts, alarms)


def _practice(account: Mapping[str, Any]) -> Html:
    if not account["practice_board"]:
        return Html("")
    return parts.note("This was a practice board of this machine. It says nothing about any lander.",
                      heading="Practice")


def _items(account: Mapping[str, Any]) -> Html:
    rows = [(_named(item), parts.badge(item["word"], TONES[item["word"]]), item["found"],
             item["accepted_because"] or item["wanted"] or "") for item in account["items"]]
    classes = ["alarm" if item["word"] == "NO" else "" for item in account["items"]]
    return parts.section("What was checked", parts.table("In the order of the table of checks", COLUMNS, rows, classes))


def _named(item: Mapping[str, Any]) -> Html:
    """The part in words, and the key where that is another word."""
    if item["part"] == item["key"]:
        return parts.text(item["part"])
    return parts.join((parts.text(item["part"]), parts.element("small", item["key"])))


def _signed(account: Mapping[str, Any]) -> Html:
    """Room for a hand."""
    line = Html("_" * 28)
    words = "Signed %s at %s UTC, %s" % (line, "_" * 12, parts.text(account["by"] or ""))
    return parts.element("p", Html(words), class_="signed")


def _hashes(account: Mapping[str, Any], digest: str) -> Html:
    hashes, journal = account["hashes"], account["hashes"]["journal"]
    rows = [("This record, deck.json", digest),
            ("Plan on the board", hashes["plan_on_board_sha256"] or "no copy is whole"),
            ("Plan of the file", account["plan"]["mission_record_sha256"]),
            ("Firmware on the board", hashes["firmware_digest"] or NOTHING),
            ("Firmware as it must be", hashes["firmware_expected"] or NOTHING),
            ("Journal before the splash", "newest record %s, checksum %s, slot %s of %s" % (
                journal.get("newest"), journal.get("newest_crc"), journal.get("next"), journal.get("slots")))]
    return parts.section("Hashes", parts.table(
        "SHA-256; of the firmware its first 16 digits, of a journal's record its CRC-16",
        (Column("Of"), Column("Is")), rows))


def _readings(account: Mapping[str, Any]) -> Html:
    rows = [(note["utc"][11:23], note["verb"], _pairs(note.get("pairs")), _pairs(note.get("answer"))
             or "no: %s" % note.get("refused")) for note in account["readings"][:SHOWN_VERBS]]
    left = len(account["readings"]) - len(rows)
    caption = "Every request and its answer, times UTC" + ("; %d more are in deck.json" % left if left else "")
    return parts.folded("Readings", parts.table(
        caption, (Column("Time"), Column("Asked"), Column("With"), Column("Answer")), rows, wide=True))


def _pairs(said: Any) -> str:
    if isinstance(said, Mapping):
        return " ".join("%s=%s" % pair for pair in said.items())
    return "" if said is None else str(said)


def _minute(stamped: str) -> str:
    return "%s %sZ" % (stamped[:10], stamped[11:16])
