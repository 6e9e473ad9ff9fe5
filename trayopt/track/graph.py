"""The graph of trunks: which trunks are joined, and whether all joined pairs can travel opposite ways."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trayopt.domain.job import Job

if TYPE_CHECKING:
    import networkx as nx


def trunk_graph(job: Job) -> nx.Graph[str]:
    """Build the graph with a node for each trunk and an edge for each joined pair, weighted by the splices of the pair."""
    import networkx as nx

    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(trunk.id for trunk in job.trunks)
    for join in job.joins:
        a, b = join.a.trunk, join.b.trunk
        before = graph.get_edge_data(a, b, {"splices": 0})["splices"]
        graph.add_edge(a, b, splices=before + join.a.count)
    return graph


def two_sides(job: Job) -> dict[str, int] | None:
    """Assign a side, 0 or 1, to each trunk so that joined trunks are on different sides; None if an odd cycle forbids it."""
    import networkx as nx

    graph = trunk_graph(job)
    if not nx.is_bipartite(graph):
        return None
    sides: dict[str, int] = nx.bipartite.color(graph)
    return sides


def odd_cycle(job: Job) -> tuple[str, ...] | None:
    """Find a shortest odd cycle of joined trunks, starting with its first trunk in the list; None if there is no odd cycle.

    On an odd cycle some two neighbours travel the same way, whatever is chosen (Koenig's theorem: a graph is bipartite exactly if
    it has no odd cycle).
    """
    import networkx as nx

    graph = trunk_graph(job)
    best: tuple[str, ...] | None = None
    for start in graph:
        distance = nx.single_source_shortest_path(graph, start)
        for a, b in graph.edges:
            if a not in distance or b not in distance or len(distance[a]) != len(distance[b]):
                continue
            cycle = (*distance[a], *reversed(distance[b][1:]))
            if len(set(cycle)) == len(cycle) and (best is None or len(cycle) < len(best)):
                best = cycle
    if best is None:
        return None
    rank = job.trunk_rank
    at = min(range(len(best)), key=lambda i: rank[best[i]])
    return (*best[at:], *best[:at])
