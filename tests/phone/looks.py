"""Looking at a screen in every size and both lights: one page, its window drawn out and its lamp dimmed."""

SIZES = {"phone": (390, 844), "small": (320, 640), "desk": (1280, 800)}
_BY_THE_RULES = {("phone", "day"), ("phone", "dim")}


def looked_at(phone, name, *, whole=False):
    """Rules, names, targets, width and a picture of the screen as it stands, for each size in each light."""
    given = phone.page.viewport_size
    assert phone.nameless() == [], name
    for size, (width, height) in SIZES.items():
        phone.page.set_viewport_size({"width": width, "height": height})
        for theme in ("day", "dim"):
            phone.page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
            where = f"{name}-{size}-{theme}"
            if (size, theme) in _BY_THE_RULES:
                phone.axe()
            if theme == "day":
                assert phone.small_targets() == [], where
                assert phone.overflow() <= 0, where
            phone.shot(where, whole=whole)
    phone.page.evaluate("document.documentElement.dataset.theme = 'day'")
    phone.page.set_viewport_size(given)
