#!/usr/bin/env python3
"""Arrows point one way: cli -> stages -> pipeline, and inside pipeline base, geometry -> imaging -> record.

A stage's face is stages/NAME/NAME.h and what FACES adds; everything else in its folder is private to it.
Lists each include that breaks this and fails when there is one."""
import pathlib
import re
import sys
import tempfile

# Beyond stages/NAME/NAME.h. Each needs a reason.
FACES = {
    "stages/run/assemble_run.h",  # the whole way
    "stages/run/flight_options.h",  # its options, which commands describe in part
    "stages/run/inputs/check_inputs.h",  # mistakes in what people wrote, before hours of work
    "stages/cull/selection/export.h",  # copies of the kept frames
    "stages/cull/selection/set_cover.h",  # the fewest frames that see the ground
    "stages/level/sun_tilt.h",  # tilt from what a person marked
    "stages/report/before_after/before_after.h",  # the page of two dates, a command of its own
}
# stages/run calls the stages; a stage may see the face of another only if it is listed here.
STAGES_SEEN_BY = {"run": None, "plan": {"glare"}, "report": {"measure"}, "mosaic": {"surface"}}
PIPELINE_SEES = {"base": {"base"}, "geometry": {"base", "geometry"}, "imaging": {"base", "geometry", "imaging"},
                 "record": {"base", "geometry", "imaging", "record"}}
INCLUDE = re.compile(r'^\s*#\s*include\s+"((?:cli|stages|pipeline)/[^"]+)"', re.M)


def breach(file: str, included: str) -> str | None:
    own, other = file.split("/"), included.split("/")
    if other[0] == "cli" and own[0] != "cli":
        return "only cli may see cli"
    if other[0] == "stages":
        if own[0] == "pipeline":
            return "pipeline knows no stage"
        if own[0] == "stages" and own[1] == other[1]:
            return None
        if included != f"stages/{other[1]}/{other[1]}.h" and included not in FACES:
            return f"private to {other[0]}/{other[1]}"
        if own[0] == "stages":
            seen = STAGES_SEEN_BY.get(own[1], set())
            if seen is not None and other[1] not in seen:
                return f"stage {own[1]} may not see stage {other[1]}: what both need moves to pipeline"
    if other[0] == "pipeline" and own[0] == "pipeline" and other[1] not in PIPELINE_SEES[own[1]]:
        return f"pipeline/{own[1]} comes before pipeline/{other[1]}"
    return None


def breaches(root: pathlib.Path) -> list[str]:
    found = []
    for folder in ("pipeline", "stages", "cli"):
        for path in sorted((root / folder).rglob("*")):
            if path.suffix not in (".h", ".cpp"):
                continue
            text = path.read_text(encoding="utf-8")
            for match in INCLUDE.finditer(text):
                why = breach(str(path.relative_to(root)), match[1])
                if why:
                    line = text.count("\n", 0, match.start(1)) + 1
                    found.append(f"{path.relative_to(root)}:{line}: includes {match[1]}: {why}")
    return found


def self_test() -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        root = pathlib.Path(folder)
        made = {"pipeline/base/a.h": "pipeline/record/r.h", "pipeline/imaging/b.cpp": "stages/cull/cull.h",
                "stages/cull/c.cpp": "stages/level/lines/x.h", "stages/place/d.cpp": "stages/mosaic/mosaic.h",
                "cli/e.cpp": "stages/cull/view.h", "stages/level/f.h": "cli/command.h"}
        fine = {"stages/cull/blur/g.cpp": "stages/cull/view.h", "stages/run/h.cpp": "stages/cull/cull.h",
                "cli/i.cpp": "stages/cull/cull.h", "pipeline/record/j.h": "pipeline/base/a.h"}
        for name, included in {**made, **fine}.items():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_text(f'#include "{included}"\n')
        told = {line.split(":")[0] for line in breaches(root)}
        return [f"not as it should be: {name}" for name in sorted(told ^ set(made))]


if __name__ == "__main__":
    lines = self_test() if sys.argv[1] == "--self-test" else breaches(pathlib.Path(sys.argv[1]))
    print("\n".join(lines))
    sys.exit(bool(lines))
