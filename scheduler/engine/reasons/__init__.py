"""Why a job is not planned or a promise not kept, each reason tested by undoing it."""
