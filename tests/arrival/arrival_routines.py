"""Routines of the tests' own, so that the library may grow."""

from tickover.routines import parse_routine


def routine(id, *, disturbs=1, may_erase=False, throttle=("cable", "electronic"), requires=(), wait=10, fits="any",
            basis="common practice", gear=False, accessory=False, needs=""):  # fmt: skip
    steps = [("on", "ignition on", "")]
    if accessory:
        steps.append(("acc", "ignition accessory", "about = 5\ngive = 1"))
        steps.append(("on2", "ignition on", "about = 5\ngive = 1"))
    steps.append(("start", "crank", f"about = {wait}\ngive = 1"))
    if gear:
        steps += [
            ("foot", "brake press", "about = 5\ngive = 1"),
            ("d", "gear drive", "about = 5\ngive = 1"),
            ("p", "gear neutral", "about = 10\ngive = 1"),
            ("up", "brake release", "about = 5\ngive = 1"),
        ]
    body = "\n".join(f'[[steps]]\nid = "{i}"\ndo = "{do}"\n{rest}' for i, do, rest in steps)
    source = ', source = "own manual"' if basis != "common practice" else ""
    return parse_routine(
        f'id = "{id}"\ntitle = "Routine {id}"\nkind = "relearn"\ndisturbs = {disturbs}\n'
        f"may_erase = {str(may_erase).lower()}\nthrottle = {list(throttle)}\nrequires = {list(requires)}\n"
        f'fits = "{fits}"\nbasis = {{ kind = "{basis}"{source} }}\n{needs}\n{body}\n'.replace("'", '"'),
        id,
    )


def library(*routines):
    return {r.id: r for r in routines}
