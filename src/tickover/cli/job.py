"""The ``job`` command: the record of what was said, measured and done to a car."""

from __future__ import annotations

import click

from tickover.cli.lazy import LazyGroup

PARTS = {
    "new": ("tickover.cli.job_write:new_command", "Begin a job."),
    "list": ("tickover.cli.job_read:list_command", "List the jobs, the newest first."),
    "show": ("tickover.cli.job_read:show_command", "Show a job, or one entry in full."),
    "next": ("tickover.cli.job_next:next_command", "Tell the next step for this car, and run it."),
    "add": ("tickover.cli.job_write:add_command", "Add an entry, with files if there are any."),
    "correct": ("tickover.cli.job_write:correct_command", "Correct an entry; the old one stays in the record."),
    "verify": ("tickover.cli.job_read:verify_command", "See whether jobs are as they were written."),
    "fetch": ("tickover.cli.job_read:fetch_command", "Get an attachment out of the record."),
    "purge": ("tickover.cli.job_write:purge_command", "Erase personal values for good; the record still holds."),
    "handover": ("tickover.cli.job_handover:handover_command", "Write the customer's sheet and the shop's record."),
    "learned": ("tickover.cli.job_learned:learned_command", "What the shop's own jobs say of its routines."),
    "export": ("tickover.cli.job_move:export_command", "Write a job as one zip."),
    "import": ("tickover.cli.job_move:import_command", "Take in a job that was exported elsewhere."),
    "backup": ("tickover.cli.job_move:backup_command", "Copy the whole record into one file, and check the copy."),
    "restore": ("tickover.cli.job_move:restore_command", "Bring a back-up back into a new record."),
}
"""Commands of the group; each brings its own libraries when it is called."""


@click.group("job", cls=LazyGroup, later=PARTS)
def job_group() -> None:
    """The job record: what was said, measured and done, entry by entry.

    An entry is never changed: a correction is a new one. Other commands keep their results with --job N.
    """
