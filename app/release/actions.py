"""Actions of the work area Release."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document
from app.needs import RELEASE

from .area import page_of
from .lines import View

MENU = "Release"


def _here(act: Callable[[Any], object]) -> Callable[[Any], None]:
    """Return a handler that shows Release first."""

    def run(window: Any) -> None:
        if window.area != RELEASE:
            window.show_area(RELEASE)
        act(page_of(window))

    return run


def _list(view: View) -> Callable[[Any], None]:
    return _here(lambda page: page.show_view(view))


def _order(name: str) -> Callable[[Any], None]:
    def run(window: Any) -> None:
        if window.area == RELEASE:
            page_of(window).acts.order(name)
        else:
            window.desk.tell("This works in Release (Ctrl+4), on the chosen lines.", refused=True)

    return run


def _trial(window: Any) -> None:
    window.remember_area()
    _here(lambda page: page.show_trial())(window)


ACTIONS: tuple[Action, ...] = (
    Action("release.trial", "&Trial export…", MENU, _trial, ("Ctrl+Shift+H",),
           "Write the set for one test vehicle and trip, marked as a trial; Enter writes it.",
           with_document),
    Action("release.to_do", "&To do", f"-{MENU}", _list(View.TO_DO),
           ("Ctrl+F8",), "List what is to do before the set is signed off.", with_document),
    Action("release.tables", "Changed ta&bles and decisions", MENU, _list(View.TABLES), (),
           "List the changed tables, who decided on them and when.", with_document),
    Action("release.waivers", "Wa&ivers", MENU, _list(View.WAIVERS), (),
           "List the waivers, and why one does not hold.", with_document),
    Action("release.remarks", "Re&marks", MENU, _list(View.REMARKS), (),
           "List the remarks and their answers.", with_document),
    Action("release.since", "&Changed since the sign-off", MENU, _list(View.SINCE), (),
           "List what changed since the last sign-off, the sign-offs and the trials.",
           with_document),
    Action("release.accept", "&Accept the chosen tables (A)", f"-{MENU}", _order("accept"), (),
           "Accept the chosen tables as they are.", with_document),
    Action("release.accept_all", "Accept all that await a &decision… (Shift+A)", MENU,
           _order("accept_all"), (),
           "Show the tables that await a decision with what changed in each, to accept them all.",
           with_document),
    Action("release.query", "&Query the chosen tables… (Q)", MENU, _order("query"), (),
           "Query the chosen tables: say what is to be answered.", with_document),
    Action("release.waive", "Waive the chosen &findings… (W)", MENU, _order("waive"), (),
           "Accept what the rules found, up to a size, for a reason.", with_document),
    Action("release.level", "Maturity &level of the chosen tables… (L)", MENU, _order("level"), (),
           "Say how the values of the chosen tables are known.", with_document),
    Action("release.remark", "Add a &remark… (R)", MENU, _order("remark"), (),
           "Say something about the chosen table and cells, or answer a remark.", with_document,
           icon="message-square"),
    Action("release.sign", "&Sign…", f"-{MENU}", _here(lambda p: p.show_panel(p.sign)),
           ("Ctrl+F9",), "Sign the set as it is, if nothing is left to do.",
           with_document, icon="signature"),
    Action("release.trust", "Who may sig&n, milestone…", MENU,
           _here(lambda p: p.show_panel(p.trust)), (),
           "Choose the list of allowed signers, the programme file and the milestone.",
           with_document),
    Action("release.keys", "Make a &key…", MENU, _here(lambda p: p.show_panel(p.keys)), (),
           "Make a key to sign with, protected by a passphrase.", icon="key-round"),
    Action("release.again", "&Verify and check again", MENU, _here(lambda p: p.check_again()), (),
           "Read the list of signers again, verify the sign-offs, and look anew.", with_document),
    Action("release.hand_over", "&Hand over…", f"-{MENU}",
           _here(lambda p: p.show_panel(p.hand_over)), (),
           "Write everything a release consists of into a folder.", with_document),
)  # fmt: skip
