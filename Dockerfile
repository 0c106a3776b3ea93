# The web process, the worker and the beat all run from this image; docker-compose.yml says which is which.
FROM python:3.12-slim

ENV PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1 DJANGO_SETTINGS_MODULE=config.settings.production
WORKDIR /app

COPY requirements/base.txt requirements/base.txt
RUN python -m pip install --no-cache-dir --require-hashes -r requirements/base.txt

COPY . .
RUN SECRET_KEY=build-only ALLOWED_HOSTS=localhost python manage.py collectstatic --noinput \
    && useradd --system --home-dir /app flueledger \
    && mkdir -p var/media && chown -R flueledger var

USER flueledger
EXPOSE 8000
CMD ["granian", "--interface", "wsgi", "--host", "0.0.0.0", "--port", "8000", "config.wsgi:application"]
