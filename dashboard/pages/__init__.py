"""One file a page: ``layout(project)`` and ``register(app, project)``."""
