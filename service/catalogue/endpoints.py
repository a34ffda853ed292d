"""`/v1/components`: the parts of the shop."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Body, Path, Query, Request, Response

from rules.parts import Component, Sku
from rules.reading import UnclearConnection, connection_or_fault
from service.catalogue import service, store
from service.catalogue.schemas import EXAMPLE, ComponentPage, ComponentSearch
from service.catalogue.suitability import suited_materials
from service.conditional import IfMatch, IfNoneMatch, etag, is_held, validators
from service.database import DatabaseOfApp, now
from service.idempotency import Answer, IdempotencyKey, KeyedRequest
from service.paging import next_link, read_cursor, write_cursor
from service.problems import Fault, invalid, problem_responses
from service.settings import SettingsOfApp
from service.snapshot import CatalogueOfApp

PATH: Final = "/v1/components"
router = APIRouter(prefix=PATH, tags=["components"])
