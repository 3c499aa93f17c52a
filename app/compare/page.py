"""What the work area Compare will do, and what can be done today."""

TITLE = "Compare"
COMING = (
    "Here two sets will stand side by side: which tables differ, where, by how much, and which "
    "relation between drive modes that breaks. Single tables will be taken over from one set into "
    "the other as one step that can be undone."
)
NOW = (
    ("Choose a reference set above: Tune checks mode relations against it.", ""),
    ("List every difference and every breach of a mode relation:", "bitepoint compare A.h5 B.h5"),
    ("The same for another program to read:", "bitepoint compare A.h5 B.h5 --json"),
    ("Check one set against another:", "bitepoint check A.h5 --against B.h5"),
)
