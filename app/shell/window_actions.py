"""The window's own rows of the table of actions: files, editing, views, sets, help."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from app.action import NO_SET, Action, Needs, with_document
from app.areas import AREAS
from app.desk import Desk

if TYPE_CHECKING:
    from .window import MainWindow


def _undoable(desk: Desk) -> bool:
    document = desk.current
    return document is not None and not document.read_only and bool(document.undo_title)


def _redoable(desk: Desk) -> bool:
    document = desk.current
    return document is not None and not document.read_only and bool(document.redo_title)


def _savable(desk: Desk) -> bool:
    return desk.current is not None and (desk.current.is_modified or desk.current.path is None)


def _reasonable(desk: Desk) -> bool:
    return desk.current is not None and desk.current.last_reason is not None


def _after_set(text: str) -> Callable[[Desk], str]:
    return lambda desk: NO_SET if desk.current is None else text


_can_undo = Needs(_undoable, _after_set("There is no edit to take back."))
_can_redo = Needs(_redoable, _after_set("No edit was taken back."))
_can_save = Needs(_savable, _after_set("Everything is saved."))
_has_reasonable = Needs(_reasonable, _after_set("There was no edit yet."))
_two_sets = Needs(lambda desk: len(desk.documents) > 1, "Open a second set first.")
_has_reference = Needs(
    lambda desk: desk.reference is not None and desk.reference is not desk.current,
    "Choose another set as the reference first.",
)


def _theme(name: str) -> Callable[[MainWindow], bool]:
    return lambda window: window.settings.theme == name


def _show_area(id: str) -> Callable[[MainWindow], None]:
    return lambda window: window.show_area(id)


def _is_shown(id: str) -> Callable[[MainWindow], bool]:
    return lambda window: window.area == id


# No Ctrl+Alt keys: on Windows they are what AltGr types on many keyboards.
ACTIONS: tuple[Action, ...] = (
    Action("file.open", "&Open…", "File", lambda w: w.files.ask_open(), ("Ctrl+O",),
           "Open one or several calibration sets.", icon="folder-open"),
    Action("file.open_samples", "Open sa&mple sets", "File", lambda w: w.files.open_samples(),
           ("Ctrl+Shift+O",), "Open the sets of the invented programme Larch."),
    Action("file.open_practice", "Open the &practice set", "File",
           lambda w: w.files.open_practice(), (),
           "Open the sample set with planted mistakes, to learn the checks."),
    Action("file.bring_in", "Bring &in tables…", "File", lambda w: w.bring_in(),
           ("Ctrl+Shift+V",), "Make a set of tables in other files, or take "
           "them into the set: CSV, spreadsheets, HDF5, NetCDF.", icon="import"),
    Action("file.save", "&Save", "-File", lambda w: w.files.save(), ("Ctrl+S",),
           "Save the set being edited to its file.", _can_save, icon="save"),
    Action("file.save_as", "Save &as…", "File", lambda w: w.files.save_as(), ("Ctrl+Shift+S",),
           "Save the set being edited to another file and go on with that one.", with_document),
    Action("file.save_all", "Sa&ve every set", "File", lambda w: w.files.save_all(),
           (), "Save every open set that has unsaved edits.",
           lambda desk: any(d.is_modified for d in desk.documents)),
    Action("file.close", "&Close set", "File", lambda w: w.files.close(), ("Ctrl+W",),
           "Close the set being edited; unsaved edits are asked about.", with_document),
    Action("file.export_csv", "&Export to CSV…", "-File", lambda w: w.files.export_csv(),
           ("Ctrl+E",), "Write every cell of every table of the set to one CSV file.",
           with_document),
    Action("file.history", "&History…", "File", lambda w: w.show_history(), ("Ctrl+H",),
           "Show who changed what, when and why, and bring an earlier state back.",
           with_document, icon="history"),
    Action("file.recovery", "Recover edi&ts…", "File", lambda w: w.recovery.show(),
           (), "Look at edits that were not saved when Bitepoint last ended."),
    Action("file.settings", "Se&ttings…", "-File", lambda w: w.show_settings(), ("Ctrl+,",),
           "Choose your name, how values are shown, text and controls, and the usual reference.",
           icon="settings"),
    Action("file.quit", "&Quit", "-File", lambda w: w.close(), ("Ctrl+Q",),
           "Close every set and end Bitepoint; unsaved edits are asked about."),
    Action("edit.undo", "&Undo", "Edit", lambda w: w.editing.undo(), ("Ctrl+Z",),
           "Take the last edit of this set back.", _can_undo, icon="undo-2"),
    Action("edit.redo", "&Redo", "Edit", lambda w: w.editing.redo(), ("Ctrl+Y", "Ctrl+Shift+Z"),
           "Do the edit that was taken back again.", _can_redo, icon="redo-2"),
    Action("edit.reason", "Give the rea&son for the last edit", "Edit",
           lambda w: w.noting.ask_reason(), ("Ctrl+Shift+R",),
           "Note in the history why the last edit was made.", _has_reasonable),
    Action("edit.author", "Your &name in the history…", "Edit", lambda w: w.noting.ask_author(),
           (), "Choose the name that the history gives for your edits."),
    Action("view.palette", "&Go to action or table…", "View", lambda w: w.show_palette(),
           ("Ctrl+K",), "Type a few letters to reach any action or table of any open set.",
           icon="search"),
    *(
        Action(f"view.{area.id}", area.menu_text, "View" if number else "-View",
               _show_area(area.id), (area.key,), area.about, checked=_is_shown(area.id))
        for number, area in enumerate(AREAS)
    ),
    Action("view.notice", "Go to the noti&ce", "-View", lambda w: w.focus_notice(),
           ("Ctrl+F6",), "Go to the choices of the newest notice above the work area."),
    Action("view.theme_system", "Colours as the &system has them", "-View",
           lambda w: w.looks.set_theme("system"), (),
           "Follow the system between light and dark.", checked=_theme("system")),
    Action("view.theme_light", "&Light colours", "View", lambda w: w.looks.set_theme("light"),
           (), "Dark text on a light ground.", checked=_theme("light")),
    Action("view.theme_dark", "&Dark colours", "View", lambda w: w.looks.set_theme("dark"),
           (), "Light text on a dark ground.", checked=_theme("dark")),
    Action("view.larger", "Larger &text", "-View", lambda w: w.looks.set_font_size(+1),
           ("Ctrl++", "Ctrl+="), "Show all text one point larger."),
    Action("view.smaller", "S&maller text", "View", lambda w: w.looks.set_font_size(-1),
           ("Ctrl+-",), "Show all text one point smaller."),
    Action("view.normal_size", "&Normal text size", "View", lambda w: w.looks.set_font_size(0),
           ("Ctrl+0",), "Show all text in its first size again."),
    Action("view.full_screen", "&Full screen", "View", lambda w: w.looks.toggle_full_screen(),
           ("F11",), "Use the whole screen, or go back.",
           checked=lambda w: w.isFullScreen()),
    Action("sets.next", "&Next set", "Sets", lambda w: w.editing.step_set(+1),
           ("Ctrl+Tab",), "Edit the next open set.", _two_sets),
    Action("sets.previous", "&Previous set", "Sets", lambda w: w.editing.step_set(-1),
           ("Ctrl+Shift+Tab",), "Edit the open set before this one.", _two_sets),
    Action("sets.choose", "&Choose the set to edit", "Sets",
           lambda w: w.choose(w.document_bar.current), ("Ctrl+L",),
           "Go to the list of open sets.", with_document),
    Action("sets.choose_reference", "Choose the &reference set", "-Sets",
           lambda w: w.choose(w.document_bar.reference), ("Ctrl+B",),
           "Go to the list of sets that relations can be checked against.", _two_sets),
    Action("sets.swap", "&Swap set and reference", "Sets", lambda w: w.editing.swap_sets(),
           ("Ctrl+Shift+X", "Ctrl+M"), "Edit the reference set, with this one as its reference.",
           _has_reference, icon="arrow-left-right"),
    Action("sets.no_reference", "N&o reference", "Sets",
           lambda w: w.desk.set_reference(None), (),
           "Check this set by itself.", lambda desk: desk.reference is not None),
    Action("sets.alone", "Check &alone, without the programme beside", "Sets",
           lambda w: w.company.set_alone(not w.company.alone), (),
           "Leave out the sets of a programme file beside this one; their relations count as not "
           "checked then.", checked=lambda w: w.company.alone),
    Action("help.guide", "&Guide", "Help", lambda w: w.guiding.show_guide(), ("F1",),
           "Look up how something is done, in words and pictures.", icon="circle-help"),
    Action("help.first_steps", "&First steps", "Help", lambda w: w.guiding.show_steps(), (),
           "Ten small tasks on the practice set, ticked as they are done."),
    Action("help.keys", "&Keys", "-Help", lambda w: w.show_keys(), ("Ctrl+F1",),
           "List every action with its keys."),
    Action("help.cautions", "&Cautions", "Help", lambda w: w.show_cautions(), ("Shift+F1",),
           "What results on this desk can and cannot tell."),
    Action("help.changes", "What is &new", "Help", lambda w: w.show_changes(), (),
           "What this version brings, changes and mends."),
    Action("help.about", "&About Bitepoint", "Help", lambda w: w.show_about(), (),
           "Version, licence and where settings are kept.", icon="info"),
)  # fmt: skip
