"""Lists the licenses of all that the image installs, from the metadata of each distribution.

``python docker/licenses.py FOLDER`` prints a line for each: name, version, license, and its license
texts, which are installed with it. A distribution without a license stops the build.
"""

from __future__ import annotations

import sys
from importlib.metadata import Distribution, distributions

HEAD = """\
The image consists of these parts, each under its own license. Parts under the LGPL or MPL are
unchanged, lie in folders of their own and can be replaced there; their source is what the package
index (https://pypi.org) has under the same name and version. License texts that a part does not
bring along: https://www.gnu.org/licenses/ and https://www.mozilla.org/MPL/2.0/.
"""


def license_of(found: Distribution) -> str:
    """The license expression, else the classifiers, else the first line of the license field."""
    about = found.metadata
    named = [c.rpartition(" :: ")[2] for c in about.get_all("Classifier", []) if "License ::" in c]
    field = (about.get("License") or "").strip().splitlines()
    said = about.get("License-Expression") or "; ".join(named) or (field[0] if field else "")
    if not said:
        sys.exit(f"{about['Name']} names no license")
    return said


def lines(folder: str) -> list[str]:
    """A line for each distribution in `folder`, by name."""
    found = []
    for each in distributions(path=[folder]):
        texts = [
            str(f) for f in each.files or () if "licen" in f.name.lower() and f.suffix != ".py"
        ]
        found.append(
            f"{each.metadata['Name']} {each.version}: {license_of(each)} [{', '.join(texts)}]"
        )
    return sorted(found, key=str.lower)


if __name__ == "__main__":
    print(HEAD)
    print(*lines(sys.argv[1]), sep="\n")
