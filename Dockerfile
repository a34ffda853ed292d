# The same steps as README and CI: pinned packages by hash, then the project itself.
FROM python:3.12-slim AS build
WORKDIR /app
COPY requirements.lock .
RUN python -m venv /venv && /venv/bin/pip install --no-cache-dir --require-hashes -r requirements.lock
COPY pyproject.toml README.md LICENSE ./
COPY rules rules
COPY service service
COPY migrations migrations
COPY seed_data seed_data
RUN /venv/bin/pip install --no-cache-dir --no-deps .

FROM python:3.12-slim
RUN useradd --system --create-home --home-dir /data --shell /usr/sbin/nologin lineworthy
COPY --from=build /venv /venv
ENV PATH="/venv/bin:$PATH" \
    PYTHONUNBUFFERED=1 \
    LINEWORTHY_DATABASE_URL="sqlite:////data/lineworthy.sqlite3"
USER lineworthy
WORKDIR /data
VOLUME /data
EXPOSE 8000
HEALTHCHECK --interval=15s --timeout=3s --start-period=10s \
    CMD ["python", "-c", "import urllib.request as u; u.urlopen('http://127.0.0.1:8000/livez', timeout=2)"]
# One process a container; the orchestrator starts more.
CMD ["sh", "-c", "lineworthy migrate && exec lineworthy serve --host 0.0.0.0 --port 8000"]
