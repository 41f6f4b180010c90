#!/usr/bin/env python3
"""Functions that headers declare and that no product code calls. What only tests call is dead weight too, but
for what ONLY_FOR_TESTS names with a reason. (Unused functions inside one source are the compiler's to tell.)

Reads words, not C++: a name that occurs elsewhere for another reason passes."""
import collections
import pathlib
import re
import sys
import tempfile

PRODUCT = ("pipeline", "stages", "cli", "examples")
ONLY_FOR_TESTS = {
    "camera_from_json": "the benches read truth and placements by it",
    "geometric_dip_rad": "the published value that the refracted dip is held against",
    "horizon_line": "the line that the tests draw and look for",
    "brewster_angle_rad": "a published value that Fresnel's equations are held against",
    "mirror_distance_px": "how far from the nadir the mirror point lies, in closed form",
    "raw_is_available": "a build without LibRaw skips its tests",
}
# "Type name(" at the start of a declaration; keywords and macros are no names.
DECLARED = re.compile(r"^\s*(?:\[\[nodiscard\]\]\s*)?(?:static\s+|virtual\s+|inline\s+|constexpr\s+|explicit\s+)*"
                      r"(?:const\s+)?(?!return\b|throw\b|else\b|new\b)[A-Za-z_][\w:]*(?:<[^;{}()]*>)?(?:\s*[&*]+)?\s+([a-z_]\w*)\s*\(", re.M)
NO_NAMES = {"if", "for", "while", "switch", "return", "sizeof", "static_assert", "operator", "defined", "describe",
            "to_json", "from_json"}  # found by argument, called by a library


def without_comments(text: str) -> str:
    text = re.sub(r"//[^\n]*|/\*.*?\*/", "", text, flags=re.S)
    return re.sub(r'"(?:\\.|[^"\\\n])*"', '""', text)


def uncalled(root: pathlib.Path) -> list[str]:
    uses: collections.Counter[str] = collections.Counter()
    declared: dict[str, str] = {}
    counts: collections.Counter[str] = collections.Counter()
    for folder in PRODUCT:
        for path in sorted((root / folder).rglob("*")):
            if path.suffix not in (".h", ".cpp"):
                continue
            text = without_comments(path.read_text(encoding="utf-8"))
            uses.update(re.findall(r"\w+", text))
            if path.suffix == ".h":
                for match in DECLARED.finditer(text):
                    if match[1] not in NO_NAMES:
                        declared.setdefault(match[1], str(path.relative_to(root)))
                        counts[match[1]] += 1
            # A definition outside its header: "Type name(...) {" or "Type Class::name(...) {" at line start.
            else:
                for match in re.finditer(r"^[A-Za-z_][^;{}=]*?\b(?:\w+::)*([a-z_]\w*)\s*\([^;{}]*\)[^;{}]*\{", text, re.M):
                    counts[match[1]] += 1
    return [f"{declared[name]}: nothing calls {name}" for name in sorted(declared)
            if uses[name] <= counts[name] and name not in ONLY_FOR_TESTS]


def self_test() -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        root = pathlib.Path(folder)
        (root / "pipeline").mkdir()
        (root / "pipeline/a.h").write_text("[[nodiscard]] int used(int a);\n/// dead() is old\nstd::vector<int> dead(\n    int b);\n")
        (root / "pipeline/a.cpp").write_text("int used(int a) {\n  return a;\n}\nstd::vector<int> dead(int b) {\n  return {b};\n}\nint main() {\n  return used(1);\n}\n")
        found = uncalled(root)
        return [] if found == ["pipeline/a.h: nothing calls dead"] else ["not as it should be: " + str(found)]


if __name__ == "__main__":
    lines = self_test() if sys.argv[1] == "--self-test" else uncalled(pathlib.Path(sys.argv[1]))
    print("\n".join(lines))
    sys.exit(bool(lines))
