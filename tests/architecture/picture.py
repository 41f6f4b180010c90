#!/usr/bin/env python3
"""The picture of the data flow in DEVELOPERS.md, made from stages/run: which functions of which stage a run
calls, in the order in which it calls them.

picture.py ROOT          fails when DEVELOPERS.md shows another picture than the code
picture.py ROOT --write  puts the picture there
picture.py --self-test"""
import pathlib
import re
import sys

BEGIN, END = "<!-- picture: made by tests/architecture/picture.py --write -->", "<!-- end of picture -->"
CALL = re.compile(r"\b([a-z_]+)::([a-z_]+)\(")
# Reading tables that people wrote, and questions without an answer of their own, are no part of the flow.
NOT_SHOWN = re.compile(r"^(describe|read_|.*_file$|sun_of_frame)")


def without_comments(text: str) -> str:
    return re.sub(r"//[^\n]*", "", text)


def calls(text: str, stages: set[str]) -> list[str]:
    seen: list[str] = []
    for match in CALL.finditer(without_comments(text)):
        name = f"{match[1]}::{match[2]}"
        if match[1] in stages and not NOT_SHOWN.match(match[2]) and name not in seen:
            seen.append(name)
    return seen


def body_of(text: str, function: str) -> str:
    start = text.index(f" {function}(")
    return text[start:text.index("\n}\n", start)]


def picture(root: pathlib.Path) -> str:
    run = root / "stages/run"
    stages = {path.name for path in (root / "stages").iterdir() if path.is_dir()} - {"run"}
    frame = calls((run / "analyse_frames.cpp").read_text(), stages)
    flight = calls(body_of((run / "assemble_run.cpp").read_text(), "run_flight"), stages)
    return drawn(frame, [name for name in flight if name not in frame])


def drawn(frame: list[str], flight: list[str]) -> str:
    lines = ["    files", "      |", "    " + flight[0] + "   -> FlightRecord: one FrameRecord a file", "      |",
             "      |   each frame by itself, its pixels streamed and decoded once a size:"]
    lines += [f"      |     {name}" for name in frame]
    lines += ["      |"]
    lines += [f"    {name}\n      |" for name in flight[1:]]
    lines += ["    frames.csv, flight.json, placement.json, pictures, report.html"]
    return "\n".join(lines)


def self_test() -> list[str]:
    text = "int run_flight(int a) {\n  // old::call()\n  cull::measure(a); cull::describe(o); cull::measure(b);\n  std::move(c);\n}\n"
    found = calls(body_of(text, "run_flight"), {"cull", "old"})
    return [] if found == ["cull::measure"] else ["not as it should be: " + str(found)]


def main() -> int:
    if sys.argv[1] == "--self-test":
        wrong = self_test()
        print("\n".join(wrong))
        return bool(wrong)
    root = pathlib.Path(sys.argv[1])
    page = root / "DEVELOPERS.md"
    text = page.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    _, after = rest.split(END)
    made = before + BEGIN + "\n\n" + picture(root) + "\n\n" + END + after
    if "--write" in sys.argv:
        page.write_text(made, encoding="utf-8")
    elif made != text:
        print("DEVELOPERS.md: its picture is not that of stages/run; tests/architecture/picture.py . --write")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
