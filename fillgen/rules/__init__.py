"""The rules, each in one place, and the packs that switch them on."""
