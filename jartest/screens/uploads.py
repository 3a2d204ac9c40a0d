"""Photos that come in by the browser: let go of from memory as soon as they are kept on disk."""

from __future__ import annotations

from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFile

__all__ = ["forget_upload"]


def forget_upload(file: UploadedFile) -> None:
    """Free the bytes of an upload, which Streamlit otherwise holds until the session ends.

    This reaches into Streamlit's runtime, which has no public way to do it; a test holds it in place.
    """
    ctx = get_script_run_ctx()
    if ctx is None:
        return
    manager = ctx.uploaded_file_mgr
    # The protocol that this is typed as leaves the method out; the manager that serves uploads has it.
    if isinstance(manager, MemoryUploadedFileManager):
        manager.remove_file(session_id=ctx.session_id, file_id=file.file_id)
