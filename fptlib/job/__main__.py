"""Prints the JSON Schema of ``job.toml``: ``python -m fptlib.job > job.schema.json``."""

import json

from fptlib.job.tables import json_schema

if __name__ == "__main__":
    print(json.dumps(json_schema(), indent=2, ensure_ascii=False))
