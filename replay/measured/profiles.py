"""Profiles kept in a library (LIBRARY/profiles/*.toml), found again by the fingerprint of a file's header."""

from pathlib import Path

from replay.ground.files import write_text
from replay.ground.refusal import Refusal, or_refuse, refusal
from replay.library.library import check_inside, leads_inside
from replay.measured.profile import Profile, read_profile
from replay.measured.sources import fingerprint_of

FOLDER = "profiles"


def profile_for(path: Path, library: Path) -> Profile:
    """Return the kept profile whose fingerprints hold that of this file. Raises Refusal for none or several."""
    found = []
    seen = ""
    check_inside(library, library / FOLDER)
    for file in sorted((library / FOLDER).glob("*.toml")):
        check_inside(library, file)
        profile = read_profile(file)
        seen = fingerprint_of(path, profile)
        if seen in profile.fingerprints:
            found.append(profile)
    if len(found) == 1:
        return found[0]
    if found:
        names = " and ".join(str(profile.path) for profile in found)
        raise refusal(path, "", f"{names} are both for its header", "--profile FILE")
    seen = seen or fingerprint_of(path, None)
    accepted = f"--profile FILE; lubetrip import --guess {path.name} drafts one"
    raise refusal(path, "", f"no profile in {library / FOLDER} is for its header ({seen})", accepted)


def of_first_machine(profile: Profile) -> Profile:
    """Return a profile by which a file can be opened: of the first machine where it names several."""
    return profile.of_machine(next(iter(profile.machines))) if profile.machines else profile


def check_fingerprint(path: Path, profile: Profile, seen: str) -> None:
    """Refuse a profile that was made for another header."""
    if profile.fingerprints and seen not in profile.fingerprints:
        rule = f"made for another header than that of {path.name} ({seen})"
        accepted = "the profile of this header, or its fingerprint added after a look at columns and units"
        raise refusal(profile.path, "fingerprints", rule, accepted, list(profile.fingerprints))


def keep(profile: Profile, library: Path, seen: str) -> str | None:
    """Keep a profile that was just used in the library, for files with the same header. Returns what to say of it.

    Raises Refusal where the library's folder of profiles leads out of it or cannot be written.
    """
    import tomlkit

    folder = library / FOLDER
    check_inside(library, folder)
    target = folder / profile.path.name
    if profile.path.resolve() != target.resolve():
        for file in sorted(folder.glob("*.toml")):
            if leads_inside(library, file) and _serves(file, seen):
                return None
        if target.exists():
            target = target.with_stem(f"{target.stem}-{seen}")
        check_inside(library, target)
    elif seen in profile.fingerprints:
        return None
    document, head = tomlkit.parse(profile.path.read_text(encoding="utf-8-sig")), ""
    if seen not in profile.fingerprints:
        document.pop("fingerprints", None)
        head = tomlkit.dumps({"fingerprints": [*profile.fingerprints, seen]})
    with or_refuse(folder, "made"):
        folder.mkdir(exist_ok=True)
    write_text(target, head + tomlkit.dumps(document))
    return f"profile kept as {target}: files with this header need no --profile"


def _serves(file: Path, seen: str) -> bool:
    try:
        return seen in read_profile(file).fingerprints
    except Refusal:
        return False
