"""What the window would find on this machine, tried in a process of its own: a Qt that cannot start ends its process.

It prints one JSON object: `qt` the version, `platform` what Qt draws on, `font` whether the program's own font is used,
`sound` null or why there is none.

    python -m station.views.probe
"""

from __future__ import annotations

import json
import sys

from PyQt6.QtCore import QT_VERSION_STR
from PyQt6.QtGui import QFontInfo
from PyQt6.QtWidgets import QApplication

from station.views.lettering import font_of, load_fonts
from station.views.tones import Tones
from station.views.type_sizes import SENTENCE


def main() -> None:
    """Start Qt, load the font, ask for a loudspeaker, and print what was found."""
    application = QApplication(sys.argv[:1])
    load_fonts()
    asked = font_of(SENTENCE, 1.0)
    tones = Tones()
    found = {
        "qt": QT_VERSION_STR,
        "platform": application.platformName(),
        "font": QFontInfo(asked).family() == asked.family(),
        "sound": tones.why_silent(),
    }
    tones.stop()
    print(json.dumps(found))


if __name__ == "__main__":
    main()
