"""The pages of a batch: live, entries, re-plan, paper, tables, links, and the list of them."""

from fastapi import APIRouter

from mustwright.web.pages.batch import entry, links, live, lots, paper, replan, started, table

router = APIRouter(include_in_schema=False)
for _part in (started, live, entry, replan, paper, table, links, lots):
    router.include_router(_part.router)
